"""Migrations of the database, run by `store.migrate`."""
