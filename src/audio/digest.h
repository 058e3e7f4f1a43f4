// Message digests by OpenSSL's libcrypto, and names for the bytes of files.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include <sendworthy/result.h>

#include "base/os.h"

namespace sendworthy::audio {

/// Feeds bytes in pieces; hex() ends it. An algorithm that this machine's configuration forbids makes ok() false.
class Digest {
 public:
  enum class Kind { md5, sha256 };
  explicit Digest(Kind kind);
  ~Digest();
  Digest(Digest&&) noexcept;
  Digest& operator=(Digest&&) noexcept;
  [[nodiscard]] bool ok() const;
  void add(const void* bytes, std::size_t count);
  /// Lower-case hexadecimal; empty when not ok().
  [[nodiscard]] std::string hex();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// The bytes of a file under one name, and its state when they were begun to be read.
struct BytesName {
  std::string hash;  ///< base::Hash128 over all of it
  base::FileState state;
};
/// Reads the whole file. Nothing when it cannot be read to its end, is larger than 16 GiB (which nobody reads twice), or `stop`
/// (may be null) is set.
[[nodiscard]] std::optional<BytesName> name_of_bytes(const std::string& path, const std::atomic<bool>* stop);

[[nodiscard]] std::string openssl_version();

struct FileDigests {
  std::string sha256, md5;  ///< lower-case hexadecimal; md5 empty where it was not asked for
  std::int64_t size = 0;    ///< bytes that were read
};
enum class WithMd5 { no, yes };

/// Over the bytes of a file, in one read and in constant memory. `go_on` hears after each piece how many bytes were read so far;
/// false ends early. Errors: missing, unreadable, interrupted.
[[nodiscard]] Result<FileDigests> digests_of_file(const std::string& path, WithMd5 with_md5, const std::function<bool(std::int64_t)>& go_on = {});

}  // namespace sendworthy::audio
