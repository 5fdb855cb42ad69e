"""A shop at work: its settings, its models and its database together, for the command line and the page."""
