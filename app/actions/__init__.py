"""What people do: one function, one change; whole or not at all."""
