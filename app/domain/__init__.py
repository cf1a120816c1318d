"""What the words of the job mean. Pure values and functions; each module may import only those above it here.

errors > timecode > recording, people, rulecard > clip > lesson > tape, quiz > clearance > curriculum
"""
