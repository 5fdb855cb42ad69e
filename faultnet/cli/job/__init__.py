"""`faultnet job ...`: the commands, and how a job is told as text and JSON."""
