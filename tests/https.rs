//! A webhook over https, with a receiver that this computer trusts and with one it does not. Built with `--features https`
//! only; the certificates are made here by the `openssl` command.

use crate::aboard::{Daemon, Folder, PATIENCE, middlewatch, text};
use std::io::{Read, Write};
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::Command;
use std::sync::{Arc, mpsc};
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::rustls::{ServerConfig, ServerConnection, StreamOwned};

/// A certificate for localhost, and its key, as files.
fn certificate(folder: &Folder) -> [PathBuf; 2] {
    let [cert, key] = ["cert.pem", "key.pem"].map(|name| folder.write(name, ""));
    let made = Command::new("openssl")
        .args([
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
            "-nodes",
            "-days",
            "2",
        ])
        .args(["-subj", "/CN=receiver", "-addext", "subjectAltName=DNS:localhost"])
        .args(["-addext", "basicConstraints=critical,CA:FALSE", "-keyout"])
        .arg(&key)
        .arg("-out")
        .arg(&cert)
        .output()
        .expect("openssl");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    [cert, key]
}

/// A receiver with that certificate; its port, and the requests it took.
fn receiver([cert, key]: &[PathBuf; 2]) -> (u16, mpsc::Receiver<String>) {
    let chain = vec![CertificateDer::from_pem_file(cert).unwrap()];
    let key = PrivateKeyDer::from_pem_file(key).unwrap();
    let config =
        Arc::new(ServerConfig::builder().with_no_client_auth().with_single_cert(chain, key).unwrap());
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let (to, requests) = mpsc::channel();
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let connection = ServerConnection::new(config.clone()).unwrap();
            let mut tls = StreamOwned::new(connection, stream.unwrap());
            let mut request = String::new();
            let mut part = [0; 4096];
            // The record ends the request; a client that does not trust this end says nothing.
            while let Ok(n @ 1..) = tls.read(&mut part) {
                request.push_str(&String::from_utf8_lossy(&part[..n]));
                if request.ends_with('}') {
                    let _ = tls.write_all(b"HTTP/1.1 200 x\r\ncontent-length: 0\r\n\r\n");
                    let _ = to.send(std::mem::take(&mut request));
                }
            }
        }
    });
    (port, requests)
}

fn boat(port: u16) -> String {
    format!("[[signal]]\nname = \"shore\"\nwebhook = \"https://localhost:{port}/a\"\ntimeout = \"5 s\"\n")
}

#[test]
fn a_trusted_receiver_gets_the_record() {
    let folder = Folder::new("https");
    let files = certificate(&folder);
    let (port, requests) = receiver(&files);
    let daemon = Daemon::start_preloaded(folder, &boat(port), &[("SSL_CERT_FILE", &files[0])]);
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let request = requests.recv_timeout(PATIENCE).expect("a request over TLS");
    assert!(request.starts_with("POST /a HTTP/1.1\r\n"), "{request}");
    assert!(request.contains("\"order\":\"person overboard\""), "{request}");
}

#[test]
fn a_stranger_gets_nothing_and_the_trial_says_why() {
    let folder = Folder::new("https-stranger");
    let other = Folder::new("https-other");
    let (port, requests) = receiver(&certificate(&folder));
    let boat = folder.write("boat.toml", &format!("version = 1\n{}", boat(port)));
    let tried = middlewatch()
        .args(["check", "--live", "--config"])
        .arg(&boat)
        .env("SSL_CERT_FILE", &certificate(&other)[0])
        .output()
        .unwrap();
    let told = text(&tried.stdout) + &text(&tried.stderr);
    assert!(told.contains("shore") && told.contains("certificate"), "{told}");
    assert!(requests.try_recv().is_err());
}
