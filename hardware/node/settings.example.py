# Copy to settings.py, change, and put beside main.py on the board. It holds passwords: keep it to yourself.

SITE = "garden"  # [site] name of the garden file
NODE = "shed"  # this node; also its user name at the broker
PASSWORD = ""  # as deploy/broker.py printed it
BROKER = "raspberrypi.local"  # the name in the broker's certificate
CA_FILE = "ca.der"  # openssl x509 -in ca.crt -outform der -out ca.der

NETWORK = ""  # the radio network, and its password
NETWORK_PASSWORD = ""

EVERY_S = 300  # also every_s of its probes in the garden file
DATA_PIN = 4  # the probes' data wire, with 4.7 kΩ to 3.3 V
LID_PIN = None  # a lid's contact between this pin and ground; None: no contact

# Name in the garden file (here shed/air, shed/soil), and the probe's eight bytes as
# onewire.OneWire(machine.Pin(4)).scan() lists them.
PROBES = {
    "air": b"\x28\xa2\xe1\x56\xb5\x01\x3c\xba",
    "soil": b"\x28\xd2\xc1\xb4\x0a\x00\x00\xae",
}
