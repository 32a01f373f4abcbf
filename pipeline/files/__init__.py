"""How files of any kind are opened, wherever they come from; nothing here knows what they are for."""
