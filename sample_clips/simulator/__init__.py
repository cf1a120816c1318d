"""The simulator that draws the sample plays, so that the truth of each is known exactly.

The flow: `plays` (what happens, from a seed) -> `Scene` (where everything is, 120 times a second)
-> `truth` (distances, instants, findings, all computed from the scene) and, for the drawn plays,
`pictures` and `sound` -> one small recording per camera in the demo's house form.

Nothing here is part of the server. All clubs, people and games are invented.
"""
