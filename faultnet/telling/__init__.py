"""What is known, told: in words, as plain values and on paper, the same for the terminal and for the page."""
