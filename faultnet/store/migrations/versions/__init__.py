"""Every form the database has had."""
