"""Tables of text in files: CSV, spreadsheets, Parquet."""
