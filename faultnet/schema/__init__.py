"""The shape of a model file, and everything that can be wrong with one."""
