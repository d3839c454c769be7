"""The day as the solver sees it, made from plain facts; changes by hand; what they say in words."""
