"""How surely photos that count twice are told from honest ones."""
