// A name for bytes: XXH3, 128 bits. Tells apart what differs by accident; made to be fast, not to withstand forgery.
#pragma once

#include <cstddef>
#include <memory>
#include <string>
#include <string_view>

namespace sendworthy::base {

/// Takes bytes in pieces; hex() may be asked at any time.
class Hash128 {
 public:
  Hash128();
  Hash128(const Hash128&) = delete;
  Hash128& operator=(const Hash128&) = delete;
  ~Hash128();
  void add(const void* bytes, std::size_t count);
  void add(std::string_view bytes) { add(bytes.data(), bytes.size()); }
  /// 32 lower-case hexadecimal digits.
  [[nodiscard]] std::string hex() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace sendworthy::base
