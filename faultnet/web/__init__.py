"""The bench page: the same calls as the command line, in a browser on the shop's network."""
