"""Pure rules of reminding: what is due, who may be written to and how, what a message must and must not say."""
