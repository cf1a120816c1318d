"""All SQL. Pages read through `Database.read`; every change goes through `Database.change`, the one write path.

engine    the database behind a URL: read sessions, and changes
writer    SQLite's single writer thread: one commit for all answers that wait
tables    what is stored; one module per noun converts rows to domain values and back
"""
