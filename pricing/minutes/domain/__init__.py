"""Minutes on site: what the card says, what the company's own jobs have shown, and how sure that is."""
