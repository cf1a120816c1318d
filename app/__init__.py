"""Pennon: the whole job of a supervisor of sports officials, on one server.

The flow, in every layer by the same words:

    recording -> clip -> lesson -> tape -> quiz -> answer -> clearance -> roster

    domain/    what these words mean. Pure: no database, disk, clock, process, randomness
    measure/   statistics that know nothing of officiating. Pure
    adapters/  the outside world: files, ffmpeg, moviepy, text files
    actions/   what people do: one function, one change
    cli.py     the command line

Rules: reads go page -> store, changes go page -> action -> store. Frames, not seconds. Facts are
appended, conclusions derived. Everything made is named by the digest of what made it and appears
whole or not at all. The import contracts in pyproject.toml hold the layers apart.
"""

__version__ = "0.1.0"
