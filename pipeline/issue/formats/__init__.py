"""The further formats of an issue, each written from its GeoPackage and compared with it."""
