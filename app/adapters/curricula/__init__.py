"""Curricula as text: a folder of TOML files in, a Curriculum out, and back without loss.

`places` knows on which line each key of a file stands; `problems` turns faults into sentences with file and line;
`folder` knows the layout of the files, loads and dumps. `curricula/README.md` documents every key.
"""

from app.adapters.curricula.folder import Loaded, dump, load, table_of

__all__ = ["Loaded", "dump", "load", "table_of"]
