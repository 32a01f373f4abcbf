"""Marks handed out: a file that field equipment and a register take, and a page to print."""
