"""What a screen shows, as values: looked up and put into words before a template sees it."""
