"""The store's history, step by step, for Alembic.

A change of packcodec/edge/tables.py comes with a step in versions/, written by hand: the next
number, `down_revision` the one before, and only what works on SQLite and PostgreSQL. Steps that
were released do not change. A test runs all of them and compares what they make with the tables.
"""
