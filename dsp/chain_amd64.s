#include "textflag.h"

DATA unit<>+0(SB)/8, $1.0
DATA unit<>+8(SB)/8, $0.0
DATA unit<>+16(SB)/8, $1.0
DATA unit<>+24(SB)/8, $0.0
GLOBL unit<>(SB), RODATA|NOPTR, $32

DATA conjugate<>+0(SB)/8, $0x0000000000000000
DATA conjugate<>+8(SB)/8, $0x8000000000000000
DATA conjugate<>+16(SB)/8, $0x0000000000000000
DATA conjugate<>+24(SB)/8, $0x8000000000000000
GLOBL conjugate<>(SB), RODATA|NOPTR, $32

DATA ones<>+0(SB)/8, $1.0
DATA ones<>+8(SB)/8, $1.0
DATA ones<>+16(SB)/8, $1.0
DATA ones<>+24(SB)/8, $1.0
GLOBL ones<>(SB), RODATA|NOPTR, $32

// TIMES is out = a·b of two complex numbers each; s and t are used up.
#define TIMES(a, b, out, s, t) \
	VMOVDDUP       a, out     \
	VPERMILPD      $15, a, t  \
	VPERMILPD      $5, b, s   \
	VMULPD         s, t, t    \
	VFMADDSUB213PD t, b, out

// func chainVectors(back, loop, local, seen, phasor, undo, reflect, through, behind *complex128, pairs int)
TEXT ·chainVectors(SB), NOSPLIT, $0-80
	MOVQ    back+0(FP), DI
	MOVQ    loop+8(FP), R8
	MOVQ    local+16(FP), R9
	MOVQ    seen+24(FP), SI
	MOVQ    phasor+32(FP), R10
	MOVQ    undo+40(FP), R11
	MOVQ    reflect+48(FP), R12
	MOVQ    through+56(FP), R13
	MOVQ    behind+64(FP), R15
	MOVQ    pairs+72(FP), CX
	VMOVUPD unit<>+0(SB), Y13
	VMOVUPD conjugate<>+0(SB), Y14
	VMOVUPD ones<>+0(SB), Y15
	SHLQ    $5, CX
	XORQ    BX, BX

pair:
	VMOVUPD   (SI)(BX*1), Y0
	VMOVUPD   (R10)(BX*1), Y1
	TIMES(Y0, Y1, Y2, Y3, Y4)
	VMOVUPD   (R11)(BX*1), Y1
	TIMES(Y1, Y2, Y0, Y3, Y4)    // u
	VMOVUPD   Y0, (DI)(BX*1)
	VMOVUPD   (R15)(BX*1), Y1
	TIMES(Y1, Y0, Y2, Y3, Y4)
	VSUBPD    Y2, Y13, Y2        // 1 − r'·u
	VMULPD    Y2, Y2, Y3
	VPERMILPD $5, Y3, Y4
	VADDPD    Y4, Y3, Y3
	VDIVPD    Y3, Y15, Y3
	VXORPD    Y14, Y2, Y2
	VMULPD    Y3, Y2, Y5         // its inverse
	VMOVUPD   Y5, (R8)(BX*1)
	VMOVUPD   (R13)(BX*1), Y1
	TIMES(Y1, Y0, Y2, Y3, Y4)
	TIMES(Y2, Y5, Y0, Y3, Y4)
	VADDPD    (R12)(BX*1), Y0, Y0
	VMOVUPD   Y0, (R9)(BX*1)
	ADDQ      $32, BX
	CMPQ      BX, CX
	JLT       pair
	VZEROUPPER
	RET

// func passVectors(dst, gain, through, loop, undo, phasor *complex128, pairs int)
TEXT ·passVectors(SB), NOSPLIT, $0-56
	MOVQ dst+0(FP), DI
	MOVQ gain+8(FP), SI
	MOVQ through+16(FP), R8
	MOVQ loop+24(FP), R9
	MOVQ undo+32(FP), R10
	MOVQ phasor+40(FP), R11
	MOVQ pairs+48(FP), CX
	SHLQ $5, CX
	XORQ BX, BX

pair:
	VMOVUPD (SI)(BX*1), Y0
	VMOVUPD (R8)(BX*1), Y1
	TIMES(Y0, Y1, Y2, Y3, Y4)
	VMOVUPD (R9)(BX*1), Y1
	TIMES(Y1, Y2, Y0, Y3, Y4)
	TIMES(Y1, Y0, Y2, Y3, Y4)
	VMOVUPD (R10)(BX*1), Y1
	VMOVUPD (R11)(BX*1), Y0
	TIMES(Y1, Y0, Y5, Y3, Y4)
	TIMES(Y5, Y2, Y0, Y3, Y4)
	VMOVUPD Y0, (DI)(BX*1)
	ADDQ    $32, BX
	CMPQ    BX, CX
	JLT     pair
	VZEROUPPER
	RET

// func marchVectors(sums *float64, here, turn, against, weight *complex128, pairs int)
TEXT ·marchVectors(SB), NOSPLIT, $0-48
	MOVQ   sums+0(FP), DI
	MOVQ   here+8(FP), SI
	MOVQ   turn+16(FP), R8
	MOVQ   against+24(FP), R9
	MOVQ   weight+32(FP), R10
	MOVQ   pairs+40(FP), CX
	SHLQ   $5, CX
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	XORQ   BX, BX

pair:
	VMOVUPD     (SI)(BX*1), Y0
	VMOVUPD     (R8)(BX*1), Y1
	VFMADD231PD (R9)(BX*1), Y0, Y5
	VMULPD      Y0, Y0, Y7
	VFMADD231PD (R10)(BX*1), Y7, Y6
	TIMES(Y0, Y1, Y2, Y3, Y4)
	VMOVUPD     Y2, (SI)(BX*1)
	ADDQ        $32, BX
	CMPQ        BX, CX
	JLT         pair

	VEXTRACTF128 $1, Y5, X7
	VADDPD       X7, X5, X5
	VEXTRACTF128 $1, Y6, X7
	VADDPD       X7, X6, X6
	VHADDPD      X6, X5, X5
	VMOVUPD      X5, (DI)
	VZEROUPPER
	RET

// func stretchVectors(reflect, through, edge, once, passed *complex128, pairs int)
TEXT ·stretchVectors(SB), NOSPLIT, $0-48
	MOVQ    reflect+0(FP), DI
	MOVQ    through+8(FP), R8
	MOVQ    edge+16(FP), SI
	MOVQ    once+24(FP), R9
	MOVQ    passed+32(FP), R10
	MOVQ    pairs+40(FP), CX
	VMOVUPD unit<>+0(SB), Y13
	VMOVUPD conjugate<>+0(SB), Y14
	VMOVUPD ones<>+0(SB), Y15
	SHLQ    $5, CX
	XORQ    BX, BX

pair:
	VMOVUPD   (SI)(BX*1), Y0
	VMOVUPD   (R10)(BX*1), Y1
	VMOVUPD   (R9)(BX*1), Y2
	TIMES(Y1, Y2, Y5, Y3, Y4)
	TIMES(Y5, Y5, Y6, Y3, Y4)  // P²
	TIMES(Y0, Y0, Y7, Y3, Y4)  // a²
	TIMES(Y6, Y7, Y5, Y3, Y4)
	VSUBPD    Y5, Y13, Y5      // 1 − a²P²
	VMULPD    Y5, Y5, Y3
	VPERMILPD $5, Y3, Y4
	VADDPD    Y4, Y3, Y3
	VDIVPD    Y3, Y15, Y3
	VXORPD    Y14, Y5, Y5
	VMULPD    Y3, Y5, Y5       // its inverse
	VSUBPD    Y6, Y13, Y6      // 1 − P²
	VSUBPD    Y7, Y13, Y7      // 1 − a²
	TIMES(Y0, Y6, Y8, Y3, Y4)
	TIMES(Y8, Y5, Y9, Y3, Y4)
	VMOVUPD   Y9, (DI)(BX*1)
	TIMES(Y7, Y1, Y8, Y3, Y4)
	TIMES(Y8, Y5, Y9, Y3, Y4)
	TIMES(Y9, Y9, Y8, Y3, Y4)
	VMOVUPD   Y8, (R8)(BX*1)
	ADDQ      $32, BX
	CMPQ      BX, CX
	JLT       pair
	VZEROUPPER
	RET

// func moveVectors(dst, gain, gamma, through, back, loop, local *complex128, pairs int)
TEXT ·moveVectors(SB), NOSPLIT, $0-64
	MOVQ dst+0(FP), DI
	MOVQ gain+8(FP), SI
	MOVQ gamma+16(FP), R8
	MOVQ through+24(FP), R9
	MOVQ back+32(FP), R10
	MOVQ loop+40(FP), R11
	MOVQ local+48(FP), R12
	MOVQ pairs+56(FP), CX
	SHLQ $5, CX
	XORQ BX, BX

pair:
	VMOVUPD (R9)(BX*1), Y0
	VMOVUPD (R10)(BX*1), Y1
	TIMES(Y0, Y1, Y2, Y3, Y4)
	VMOVUPD (R11)(BX*1), Y1
	TIMES(Y1, Y2, Y0, Y3, Y4)
	TIMES(Y1, Y0, Y2, Y3, Y4)
	VSUBPD  (R12)(BX*1), Y2, Y2
	VADDPD  Y2, Y2, Y2
	VMOVUPD (SI)(BX*1), Y0
	VMOVUPD (R8)(BX*1), Y1
	TIMES(Y0, Y1, Y5, Y3, Y4)
	TIMES(Y5, Y2, Y0, Y3, Y4)
	VMOVUPD Y0, (DI)(BX*1)
	ADDQ    $32, BX
	CMPQ    BX, CX
	JLT     pair
	VZEROUPPER
	RET

DATA twos<>+0(SB)/8, $2.0
DATA twos<>+8(SB)/8, $0.0
DATA twos<>+16(SB)/8, $2.0
DATA twos<>+24(SB)/8, $0.0
GLOBL twos<>(SB), RODATA|NOPTR, $32

// func lumpedVectors(reflect, through, value *complex128, pairs int)
TEXT ·lumpedVectors(SB), NOSPLIT, $0-32
	MOVQ    reflect+0(FP), DI
	MOVQ    through+8(FP), R8
	MOVQ    value+16(FP), SI
	MOVQ    pairs+24(FP), CX
	VMOVUPD twos<>+0(SB), Y12
	VMOVUPD unit<>+0(SB), Y13
	VMOVUPD conjugate<>+0(SB), Y14
	VMOVUPD ones<>+0(SB), Y15
	SHLQ    $5, CX
	XORQ    BX, BX

pair:
	VMOVUPD   (SI)(BX*1), Y0
	VADDPD    Y12, Y0, Y5
	VMULPD    Y5, Y5, Y3
	VPERMILPD $5, Y3, Y4
	VADDPD    Y4, Y3, Y3
	VDIVPD    Y3, Y15, Y3
	VXORPD    Y14, Y5, Y5
	VMULPD    Y3, Y5, Y5        // 1/(2 + v)
	TIMES(Y0, Y5, Y6, Y3, Y4)
	VMOVUPD   Y6, (DI)(BX*1)
	VSUBPD    Y6, Y13, Y6
	TIMES(Y6, Y6, Y7, Y3, Y4)
	VMOVUPD   Y7, (R8)(BX*1)
	ADDQ      $32, BX
	CMPQ      BX, CX
	JLT       pair
	VZEROUPPER
	RET
