// The questions of one measured mix, asked and answered on the page: by the same file, and the same rules, as in the terminal.
#pragma once

#include <cstddef>
#include <mutex>
#include <string>

#include "desk/folder.h"
#include "desk/json.h"
#include "desk/uploads.h"
#include "song/to_listen.h"

namespace sendworthy::desk {

/// Safe to use from several threads, and beside a terminal.
class ListeningPass {
 public:
  /// `mix_part`: which of the check's files the mix is, from 1. The folder must outlive this object.
  ListeningPass(const Folder& folder, song::ToListen asked, std::size_t mix_part)
      : folder_(folder), asked_(std::move(asked)), told_(asked_.state), mix_part_(mix_part) {}

  /// Where the song stands now. Refused: 409 where plan or passes file are wrong by now, 403 where they, or
  /// what the plan names, lie outside of the folder by now.
  [[nodiscard]] tl::expected<Json, UploadRefusal> tell();
  /// Keeps an answer and tells where the song stands then. `date`: YYYY-MM-DD. Refused, and nothing kept: 400 an answer that cannot be
  /// kept; 409 where the mix was written to, the question is another one by now, or another pass was begun elsewhere than the one that
  /// was told last; 507 where the passes file cannot be written.
  [[nodiscard]] tl::expected<Json, UploadRefusal> answer(const AnswerWish& wish, const std::string& date);

 private:
  [[nodiscard]] Json told() const;
  [[nodiscard]] tl::expected<ListeningState, UploadRefusal> now() const;

  const Folder& folder_;
  const song::ToListen asked_;
  std::mutex mutex_;
  ListeningState told_;  ///< what the page was told last
  const std::size_t mix_part_;
};

}  // namespace sendworthy::desk
