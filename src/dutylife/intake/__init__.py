"""Export files to service lines, machines, shelf; every source row used or set aside with a reason."""
