"""The failure-event table held alone to the true lives."""
