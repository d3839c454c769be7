"""The arithmetic of what a crew-hour earns: shares of driving, the ratio with its interval, the verdict."""
