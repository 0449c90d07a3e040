"""What a person or another program gets to read: places in words, JSON, text, SARIF."""
