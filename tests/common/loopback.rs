//! A sound server of one's own, whose only output can be heard as an input: no sound card, no
//! session bus, and it works as root. Ended with the value.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// What to say where the server is missing.
const MISSING: &str =
    "install pulseaudio, pulseaudio-utils and libasound2-plugins (tests/run does)";

/// Far longer than a server takes to start.
const AT_MOST: Duration = Duration::from_secs(30);

/// The server, and the environment for whoever is to use it.
pub(crate) struct Loopback {
    dir: TempDir,
    server: Option<Child>,
    keeper: Option<Child>,
}

impl Loopback {
    /// The text of its input.
    pub(crate) const INPUT: &'static str = "alsa:loopback";

    /// A second output, and the input that hears it.
    pub(crate) const BACK: &'static str = "alsa:back";
    pub(crate) const BACK_HEARD: &'static str = "alsa:backheard";

    pub(crate) fn start() -> Self {
        let dir = TempDir::new().unwrap();
        for folder in ["run", "state"] {
            fs::create_dir(dir.path().join(folder)).unwrap();
        }
        let socket = dir.path().join("native").display().to_string();
        let config = format!(
            "</usr/share/alsa/alsa.conf>\n\
             pcm.loopback {{ type pulse server \"unix:{socket}\" device \"out.monitor\" }}\n\
             pcm.back {{ type pulse server \"unix:{socket}\" device \"back\" }}\n\
             pcm.backheard {{ type pulse server \"unix:{socket}\" device \"back.monitor\" }}\n\
             ctl.loopback {{ type pulse server \"unix:{socket}\" }}\n"
        );
        fs::write(dir.path().join("asound.conf"), config).unwrap();
        let mut loopback = Self { dir, server: None, keeper: None };
        loopback.revive();
        loopback
    }

    /// Starts the server, anew if it was killed.
    pub(crate) fn revive(&mut self) {
        let socket = self.dir.path().join("native");
        // One that was killed leaves it behind.
        let _ = fs::remove_file(&socket);
        let socket = socket.display();
        let mut server = self.command("pulseaudio");
        server.args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--disallow-exit"]);
        server.args(["--use-pid-file=no", "--disable-shm", "--realtime=no", "--high-priority=no"]);
        server.arg("--log-target=stderr");
        server
            .arg("-L")
            .arg(format!("module-native-protocol-unix socket={socket} auth-anonymous=1"));
        server
            .args(["-L", "module-null-sink sink_name=out format=float32le rate=48000 channels=2"]);
        server
            .args(["-L", "module-null-sink sink_name=back format=float32le rate=48000 channels=2"]);
        self.server = Some(server.spawn().expect(MISSING));
        let began = Instant::now();
        while !self.command("pactl").arg("info").status().expect(MISSING).success() {
            assert!(began.elapsed() < AT_MOST, "the sound server does not start");
            thread::sleep(Duration::from_millis(50));
        }
        // A null sink wakes every 2 s unless someone asks for speed.
        let mut keeper = self.command("parec");
        keeper.args(["--latency-msec=5", "--raw", "-d", "out.monitor"]);
        self.keeper = Some(keeper.spawn().expect(MISSING));
    }

    /// Ends the server as a crash would.
    pub(crate) fn kill(&mut self) {
        for child in [self.keeper.take(), self.server.take()].iter_mut().flatten() {
            // It may have ended with the server.
            let _ = child.kill();
            child.wait().unwrap();
        }
    }

    /// Plays a sound file; ends with it.
    pub(crate) fn play(&self, song: &Path) -> Child {
        self.command("paplay").arg("--latency-msec=20").arg(song).spawn().expect(MISSING)
    }

    /// A program that uses this server and keeps its output to itself.
    pub(crate) fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        self.surround(&mut command);
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        command
    }

    /// Sets the environment of a command.
    pub(crate) fn surround(&self, command: &mut Command) {
        let place = |name: &str| -> PathBuf { self.dir.path().join(name) };
        command
            .env("PULSE_RUNTIME_PATH", place("run"))
            .env("PULSE_STATE_PATH", place("state"))
            .env("PULSE_COOKIE", place("cookie"))
            .env("PULSE_SERVER", format!("unix:{}", place("native").display()))
            .env("ALSA_CONFIG_PATH", place("asound.conf"));
    }
}

impl Drop for Loopback {
    fn drop(&mut self) {
        self.kill();
    }
}
