"""The store's history, step by step, for Alembic."""
