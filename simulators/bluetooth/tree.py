"""A tree of D-Bus objects with properties, as an ObjectManager shows it.

Made for a program that must be able to answer late, wrongly or not at all, so calls are answered
by plain coroutines.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any

from dbus_fast import Message, MessageType, Variant
from dbus_fast.aio import MessageBus

MANAGER = "org.freedesktop.DBus.ObjectManager"
PROPERTIES = "org.freedesktop.DBus.Properties"

Properties = dict[str, Variant]
Interfaces = dict[str, Properties]


class Refused(Exception):
    """A call that is answered with a D-Bus error."""

    def __init__(self, name: str, text: str) -> None:
        super().__init__(text)
        self.name = name
        self.text = text


class Answer:
    """What a call returns: a D-Bus signature and its values."""

    def __init__(self, signature: str = "", *body: Any) -> None:
        self.signature = signature
        self.body = list(body)


Method = Callable[[Message], Awaitable[Answer]]


class Tree:
    """The objects on a connected bus."""

    def __init__(self, bus: MessageBus) -> None:
        self._bus = bus
        self._tasks: asyncio.TaskGroup | None = None
        self._objects: dict[str, Interfaces] = {}
        self._methods: dict[str, dict[str, Method]] = {}
        self._running: set[asyncio.Task[None]] = set()
        self._gone: list[Callable[[str], None]] = []

    async def open(self, name: str, tasks: asyncio.TaskGroup) -> None:
        """Begin to answer, as `name`, in tasks of that group."""
        self._tasks = tasks
        self._bus.add_message_handler(self._received)
        await self._bus.call(
            Message(
                destination="org.freedesktop.DBus",
                path="/org/freedesktop/DBus",
                interface="org.freedesktop.DBus",
                member="AddMatch",
                signature="s",
                body=["type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged'"],
            )
        )
        await self._bus.request_name(name)

    def close(self) -> None:
        """Answer no more; whatever is going on is given up."""
        self._bus.remove_message_handler(self._received)
        for task in self._running:
            task.cancel()

    def begin(self, doing: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        """Let something go on beside the rest, until it is done or the tree is closed."""
        assert self._tasks is not None, "the tree is not open"
        task = self._tasks.create_task(doing)
        self._running.add(task)
        task.add_done_callback(self._running.discard)
        return task

    def when_gone(self, forget: Callable[[str], None]) -> None:
        """Have `forget` called with the name of each program that leaves the bus."""
        self._gone.append(forget)

    # Objects

    def add(self, path: str, interfaces: Interfaces, methods: dict[str, Method]) -> None:
        """Add an object, and tell of it; `methods` go by their `interface.member`."""
        self._objects[path] = interfaces
        self._methods[path] = methods
        self._signal("/", MANAGER, "InterfacesAdded", "oa{sa{sv}}", path, interfaces)

    def remove(self, path: str) -> None:
        """Remove an object, and tell of it; nothing if there is none."""
        interfaces = self._objects.pop(path, None)
        self._methods.pop(path, None)
        if interfaces is not None:
            self._signal("/", MANAGER, "InterfacesRemoved", "oas", path, list(interfaces))

    def under(self, path: str) -> list[str]:
        """The paths of all objects below that one, the deepest first."""
        return sorted((each for each in self._objects if each.startswith(f"{path}/")), reverse=True)

    def change(self, path: str, interface: str, **changed: Variant) -> None:
        """Change properties of an object, and tell of it; nothing if there is no such object."""
        if path in self._objects:
            self._objects[path][interface].update(changed)
            self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", interface, changed, [])

    def drop(self, path: str, interface: str, name: str) -> None:
        """Take a property away, and tell of it."""
        if self._objects.get(path, {}).get(interface, {}).pop(name, None) is not None:
            self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", interface, {}, [name])

    def _signal(self, path: str, interface: str, member: str, signature: str, *body: Any) -> None:
        self._bus.send(Message.new_signal(path, interface, member, signature, list(body)))

    # Calls

    def _received(self, message: Message) -> bool:
        """Take a message; whether it was a call, which is then answered here."""
        if message.message_type is MessageType.SIGNAL and message.member == "NameOwnerChanged":
            name, _, owner = message.body
            if not owner:
                for forget in self._gone:
                    forget(name)
        if message.message_type is not MessageType.METHOD_CALL:
            return False
        self.begin(self._answer(message))
        return True

    async def _answer(self, message: Message) -> None:
        try:
            answer = await self._call(message)
        except Refused as error:
            reply = Message.new_error(message, error.name, error.text)
        else:
            reply = Message.new_method_return(message, answer.signature, answer.body)
        self._bus.send(reply)

    async def _call(self, message: Message) -> Answer:
        path, called = message.path or "", f"{message.interface}.{message.member}"
        if called == f"{MANAGER}.GetManagedObjects" and path == "/":
            return Answer("a{oa{sa{sv}}}", self._objects)
        if path not in self._objects:
            raise Refused("org.freedesktop.DBus.Error.UnknownObject", f"there is no {path}")
        if called == f"{PROPERTIES}.GetAll":
            return Answer("a{sv}", self._objects[path].get(message.body[0], {}))
        if called == f"{PROPERTIES}.Get":
            interface, name = message.body
            if name in self._objects[path].get(interface, {}):
                return Answer("v", self._objects[path][interface][name])
            raise Refused("org.freedesktop.DBus.Error.UnknownProperty", f"there is no {name}")
        if called not in self._methods[path]:
            raise Refused("org.freedesktop.DBus.Error.UnknownMethod", f"there is no {called}")
        return await self._methods[path][called](message)
