"""The demo world: three invented teams of an invented league, with faults seeded on purpose (see ``faults``)."""
