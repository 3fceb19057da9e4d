"""Units, frames, lines, uncertainty, reasons and errors: what every other module speaks in."""
