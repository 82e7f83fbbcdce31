"""Recordings that are played again: a store, a CSV file, a Parquet file."""
