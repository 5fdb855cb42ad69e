"""What an analyst asks of a history wherever it lies: shares, rates, times to comebacks, whether forecasts hold."""
