"""What people see: one module a screen, named as the shop names it."""
