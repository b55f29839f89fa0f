"""A Bluetooth adapter and the devices near it, as the Bluetooth service of Linux shows them.

It is a program that owns `org.bluez` on a private message bus. Whoever is started with that bus's
address in DBUS_SYSTEM_BUS_ADDRESS finds, connects and reads its devices through the real bleak.
"""
