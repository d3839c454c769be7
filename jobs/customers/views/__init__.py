"""Pages of customers, properties and the import."""
