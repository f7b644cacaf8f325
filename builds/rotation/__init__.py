"""The rotation of an event: rows to a problem of the planning kernel, and its plan back to rows and sentences."""
