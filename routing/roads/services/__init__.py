from routing.roads.services.drive import ASK_SERVER, FOR_A_PAGE, ServerUse, drive_table

__all__ = ["ASK_SERVER", "FOR_A_PAGE", "ServerUse", "drive_table"]
