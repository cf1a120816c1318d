"""Alembic migrations, one file per released change of the tables."""
