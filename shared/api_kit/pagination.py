from rest_framework.pagination import PageNumberPagination


class BoundedPages(PageNumberPagination):
    """Numbered pages of 50, 200 at most. Querysets must be totally ordered (ending in the primary key)."""

    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 200
