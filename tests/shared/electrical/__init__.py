"""Tests of the electrical kernel: laws, limits and traps."""
