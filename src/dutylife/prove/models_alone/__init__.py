"""The life models held alone to made-up lives of known laws."""
