"""Strengths with their basis, how they fade, and how much stock and water give what is wanted at the surface."""
