"""UBX, the binary protocol of u-blox receivers."""
