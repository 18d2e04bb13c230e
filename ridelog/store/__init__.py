"""The library: ride files, their Parquet schema, and the SQLite catalogue."""
