"""From checked tables to frozen records: names looked up, pieces spliced in, lines laid."""
