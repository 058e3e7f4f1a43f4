// Message digests by OpenSSL's libcrypto.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>

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

[[nodiscard]] std::string openssl_version();

}  // namespace sendworthy::audio
