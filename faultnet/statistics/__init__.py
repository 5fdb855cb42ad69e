"""Statistics of counts, times and forecasts: numbers in, numbers out, nothing of televisions."""
