"""The invented clinic: a scenario played day by day through the services, never written past them."""
