"""What can be typed after `faultnet`: arguments, options and help. The work is imported inside each command."""
