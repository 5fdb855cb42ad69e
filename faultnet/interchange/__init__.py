"""Networks to and from other programs, and a second opinion on our own answers."""
