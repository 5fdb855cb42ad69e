"""What takes long: worked out once, in a process of its own, and kept for every bench."""
