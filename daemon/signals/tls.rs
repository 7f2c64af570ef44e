//! TLS for webhooks. Each connection reads the computer's trusted certificates afresh, so that renewals by the system
//! count without a restart.

use std::io;
use std::sync::Arc;
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;
use tokio_rustls::rustls::pki_types::ServerName;
use tokio_rustls::rustls::{ClientConfig, RootCertStore};

/// Opens TLS over a connection to a host.
///
/// # Errors
/// If this computer trusts no certificates, if the other side has no trusted certificate for that name, or if the
/// connection breaks.
pub(super) async fn open(host: &str, stream: TcpStream) -> io::Result<TlsStream<TcpStream>> {
    // The certificates are on a disk, which may not answer.
    let found = tokio::task::spawn_blocking(rustls_native_certs::load_native_certs)
        .await
        .map_err(io::Error::other)?;
    let mut trusted = RootCertStore::empty();
    let (taken, _) = trusted.add_parsable_certificates(found.certs);
    if taken == 0 {
        let why = found.errors.first().map(|e| format!(": {e}")).unwrap_or_default();
        return Err(io::Error::other(format!(
            "this computer trusts no certificates{why}; install the package ca-certificates"
        )));
    }
    let config = ClientConfig::builder().with_root_certificates(trusted).with_no_client_auth();
    let name = ServerName::try_from(host.to_owned()).map_err(io::Error::other)?;
    TlsConnector::from(Arc::new(config)).connect(name, stream).await
}
