"""A synthetic history with known truth: sets that fail as the model says, benches with habits, records with gaps."""
