"""What a table means, without a database: rows of a file in, values or questions out.

Besides the standard library this package uses openpyxl and phonenumbers, the two formats that nobody should
write again; it knows nothing of Django, settings or the clock.
"""
