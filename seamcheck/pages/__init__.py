"""Pages that people keep: templates, and what they are filled with."""
