"""Pure rules of sending: parts of a text message, quiet hours, when to try again."""
