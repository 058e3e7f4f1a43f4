// Who may ask at all: whoever knows the token, from our own page, under our own name.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "desk/answer.h"
#include "desk/target.h"

namespace sendworthy::desk {

/// The headers that tell where a request comes from, each as often as it was sent.
struct Origins {
  std::vector<std::string> host, origin, fetch_site;
};

class Guard {
 public:
  Guard(std::string token, int port);

  /// Nothing where the request may go on: then the target is there and the token no longer among its segments. Whoever does not
  /// know the token learns nothing: 404 without a word. Next come Host, Origin and Sec-Fetch-Site (403), which keep out pages of
  /// other sites whose names lead here; then the target itself (400) and the method (405).
  [[nodiscard]] std::optional<Answer> refuse(std::string_view method, std::string_view target_text, const Origins& origins,
                                             Target& target) const;

  /// "http://127.0.0.1:PORT/TOKEN/".
  [[nodiscard]] std::string address() const;

 private:
  std::string token_;
  std::vector<std::string> hosts_;
};

}  // namespace sendworthy::desk
