"""The outside world except SQL: files by digest, child processes, ffmpeg, PyAV. Imports only domain and measure."""
