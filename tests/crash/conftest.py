from tests.mosquitto import brokers, mosquitto, topic_prefix

__all__ = ["brokers", "mosquitto", "topic_prefix"]
