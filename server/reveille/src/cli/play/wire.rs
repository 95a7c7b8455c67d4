//! Lines to a real machine: a serial port, or a connection to whatever stands before one.

use std::io::{self, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail};
use reveille_player::{Line, Received};
use reveille_session::Settings;
use serialport::{DataBits, FlowControl, Parity, SerialPort, StopBits};

/// What bytes can be sent to and taken from, with a time to wait.
enum Wires {
    Port(Box<dyn SerialPort>),
    Connection(TcpStream),
}

/// A line to a real machine, in real time.
pub(super) struct Wire {
    wires: Wires,
    start: Instant,
}

/// What the lines of a modem are held at; none leaves them as the port has them.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Held {
    pub(super) rts: Option<bool>,
    pub(super) dtr: Option<bool>,
}

/// The least time that is waited for bytes.
const LEAST: Duration = Duration::from_millis(1);
/// How long a connection may take to be made, and a byte to be taken.
const CONNECTS: Duration = Duration::from_secs(10);

impl Wire {
    /// Opens a serial port. RTS and CTS as flow control is the port's, XON and XOFF are the player's.
    pub(super) fn port(device: &str, settings: Settings, by_lines: bool, held: Held) -> Result<Self> {
        let data = match settings.data {
            5 => DataBits::Five,
            6 => DataBits::Six,
            7 => DataBits::Seven,
            _ => DataBits::Eight,
        };
        let parity = match settings.parity {
            'e' => Parity::Even,
            'o' => Parity::Odd,
            _ => Parity::None,
        };
        let mut port = serialport::new(device, settings.rate)
            .data_bits(data)
            .parity(parity)
            .stop_bits(if settings.stop == 2 { StopBits::Two } else { StopBits::One })
            .flow_control(if by_lines { FlowControl::Hardware } else { FlowControl::None })
            .timeout(CONNECTS)
            .open()
            .with_context(|| format!("`{device}` cannot be opened as a serial port at {}", settings.words()))?;
        if let Some(level) = held.rts {
            port.write_request_to_send(level).with_context(|| format!("RTS of `{device}` cannot be set"))?;
        }
        if let Some(level) = held.dtr {
            port.write_data_terminal_ready(level).with_context(|| format!("DTR of `{device}` cannot be set"))?;
        }
        Ok(Self { wires: Wires::Port(port), start: Instant::now() })
    }

    /// Connects to a host and port.
    pub(super) fn connection(address: &str) -> Result<Self> {
        let found = address.to_socket_addrs();
        let found = found.with_context(|| format!("`{address}` is no address; expected HOST:PORT"))?;
        let mut last = None;
        for address in found {
            match TcpStream::connect_timeout(&address, CONNECTS) {
                Ok(stream) => {
                    stream.set_nodelay(true).context("the connection cannot be set up")?;
                    stream.set_write_timeout(Some(CONNECTS)).context("the connection cannot be set up")?;
                    return Ok(Self { wires: Wires::Connection(stream), start: Instant::now() });
                }
                Err(error) => last = Some(error),
            }
        }
        match last {
            Some(error) => Err(error).with_context(|| format!("`{address}` cannot be reached")),
            None => bail!("`{address}` has no address"),
        }
    }
}

impl Line for Wire {
    fn now(&self) -> Duration {
        self.start.elapsed()
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.wires {
            Wires::Port(port) => {
                let count = port.write(bytes)?;
                port.flush()?;
                Ok(count)
            }
            Wires::Connection(stream) => stream.write(bytes),
        }
    }

    fn receive(&mut self, until: Duration) -> io::Result<Received> {
        let mut buffer = [0; 4096];
        loop {
            let left = until.saturating_sub(self.now());
            let read = match &mut self.wires {
                Wires::Port(port) => {
                    port.set_timeout(left.max(LEAST)).map_err(io::Error::from).and_then(|()| port.read(&mut buffer))
                }
                Wires::Connection(stream) => {
                    stream.set_read_timeout(Some(left.max(LEAST))).and_then(|()| stream.read(&mut buffer))
                }
            };
            match read {
                Ok(0) => return Ok(Received::Closed),
                Ok(count) => return Ok(Received::Bytes(buffer[..count].to_vec())),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {
                    if left.is_zero() {
                        return Ok(Received::Nothing);
                    }
                }
                Err(error) if matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock) => {
                    return Ok(Received::Nothing);
                }
                // A cable that is pulled, a connection that is cut.
                Err(error)
                    if matches!(
                        error.kind(),
                        io::ErrorKind::BrokenPipe
                            | io::ErrorKind::ConnectionReset
                            | io::ErrorKind::ConnectionAborted
                            | io::ErrorKind::UnexpectedEof
                    ) || error.raw_os_error() == Some(EIO) =>
                {
                    return Ok(Received::Closed);
                }
                Err(error) => return Err(error),
            }
        }
    }
}

/// What a terminal device says when its other end is gone: POSIX, errno 5.
const EIO: i32 = 5;
