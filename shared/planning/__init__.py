"""Planning arithmetic for batteries and stock: pure functions on numpy arrays, no Django and no clock."""
