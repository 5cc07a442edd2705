"""The invented clinic: a scenario played day by day through the clinic's own writes, never past them."""
