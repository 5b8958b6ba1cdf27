"""Files made from whole ones by damage: what is read of them, and what is measured."""
