"""What may happen to each noun in each of its states: one chart a noun, as data. Pure, without Django."""
