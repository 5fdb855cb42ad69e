"""Exact inference: evidence in, beliefs and information gain out."""
