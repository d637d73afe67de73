"""The `[broker]` table of the settings file: how to reach the broker, and who the bridge is there."""

from __future__ import annotations

from pydantic import Field

from bridge.settings.fields import Client, FilePath, Line, Table


class BrokerTable(Table):
    """How to reach the MQTT broker."""

    host: Line = Field(description="Name or address of the broker.")
    port: int | None = Field(
        default=None, ge=1, le=65535, description="TCP port; 1883 by default, 8883 with TLS."
    )
    username: Line | None = Field(default=None, description="User name at the broker.")
    password_file: FilePath | None = Field(
        default=None, description="File whose first line is the password, relative to the settings file."
    )
    client_id: Client = Field(default="hembar", description="Stem of the bridge's client ids.")
    session_s: int = Field(
        default=30,
        ge=0,
        le=300,
        description="How long the broker keeps requests while the bridge restarts, in seconds; 0 for brokers "
        "that do not send retained messages again in a kept session.",
    )
    tls: bool = Field(default=False, description="Encrypt, and check the broker's certificate.")
    ca_file: FilePath | None = Field(
        default=None, description="PEM file of certificates to trust instead of the machine's own; needs tls."
    )
    cert_file: FilePath | None = Field(
        default=None, description="PEM file of the certificate that the bridge shows the broker; needs tls."
    )
    key_file: FilePath | None = Field(
        default=None, description="PEM file of its key, unless that stands in cert_file."
    )
