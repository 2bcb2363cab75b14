"""Tables, documents and pictures made from records."""
