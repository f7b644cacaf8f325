"""Published figures as data: units in the field names, the source and its status beside each table."""
