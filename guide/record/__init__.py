"""The record: SQLite schema, migrations, store and hash-chained log."""
