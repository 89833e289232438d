"""The room that digs: trench section, volumes along the curve, bulking, quantities and price."""
