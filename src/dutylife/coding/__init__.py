"""Service lines to maintenance events: component, activity, reason, finding."""
