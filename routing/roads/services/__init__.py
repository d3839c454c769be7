from routing.roads.services.drive import ASK_SERVER, ServerUse, drive_table

__all__ = ["ASK_SERVER", "ServerUse", "drive_table"]
