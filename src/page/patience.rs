//! A stream whose other end may stall for a while and no longer: whoever takes an answer too slowly is cut off. It never looks
//! at what is sent.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Sleep, sleep};

/// The other end takes something at least this often, while there is something to take.
const STALL: Duration = Duration::from_secs(20);

/// A stream with patience.
pub struct Patient<S> {
    stream: S,
    stall: Duration,
    /// Runs while the other end takes nothing.
    waiting: Option<Pin<Box<Sleep>>>,
}

impl<S> Patient<S> {
    /// With the usual patience.
    pub fn new(stream: S) -> Patient<S> {
        Patient { stream, stall: STALL, waiting: None }
    }

    /// What came of an attempt to write, or that it takes too long.
    fn judge<T>(&mut self, attempt: Poll<io::Result<T>>, context: &mut Context<'_>) -> Poll<io::Result<T>> {
        if attempt.is_ready() {
            self.waiting = None;
            return attempt;
        }
        let stall = self.stall;
        let waiting = self.waiting.get_or_insert_with(|| Box::pin(sleep(stall)));
        ready!(waiting.as_mut().poll(context));
        Poll::Ready(Err(io::Error::new(io::ErrorKind::TimedOut, "the other end takes nothing")))
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(mut self: Pin<&mut Self>, context: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, into)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patient<S> {
    fn poll_write(mut self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let attempt = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.judge(attempt, context)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let attempt = Pin::new(&mut self.stream).poll_flush(context);
        self.judge(attempt, context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let attempt = Pin::new(&mut self.stream).poll_shutdown(context);
        self.judge(attempt, context)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        slices: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let attempt = Pin::new(&mut self.stream).poll_write_vectored(context, slices);
        self.judge(attempt, context)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    use super::*;

    #[tokio::test]
    async fn who_takes_nothing_is_cut_off_and_who_is_slow_is_not() {
        let (near, mut far) = tokio::io::duplex(8);
        let mut near = Patient { stream: near, stall: Duration::from_millis(200), waiting: None };
        let reader = tokio::spawn(async move {
            let mut taken = [0; 8];
            for _ in 0..4 {
                tokio::time::sleep(Duration::from_millis(20)).await;
                far.read_exact(&mut taken).await.expect("there is more");
            }
            far
        });
        near.write_all(&[7; 32]).await.expect("all is taken in time");
        let _far = reader.await.expect("it read");
        let error = near.write_all(&[7; 32]).await.expect_err("nobody takes it");
        assert_eq!(error.kind(), io::ErrorKind::TimedOut);
    }
}
