from routing.roads.services.drive import drive_table

__all__ = ["drive_table"]
