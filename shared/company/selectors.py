from shared.company.models import Company


def company_get() -> Company:
    """The firm's settings; a first call on an empty database makes the row with its defaults."""
    company, _ = Company.objects.get_or_create(pk=1)
    return company
