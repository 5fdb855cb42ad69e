"""The same calls for programs: JSON in and out, one module for what a shop works on."""
