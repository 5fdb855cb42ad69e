"""The whole plan: tests, repairs and giving up, by least expected cost."""
