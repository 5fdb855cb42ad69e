"""The shop's database: jobs, entries, advice, voltages and versions, in SQLite or PostgreSQL."""
